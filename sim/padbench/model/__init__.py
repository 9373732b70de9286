"""The behavioural model in MyHDL: register, contacts, port, poller, and the bench of them."""
