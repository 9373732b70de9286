"""What happens on the wires: timeline, decoder, rules, findings. No simulator, file or terminal."""
