"""What people type and programs send, read: days, JSON."""
