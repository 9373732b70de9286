"""What a user asks for: one function a command, each giving one `Result`. No terminal in here."""
