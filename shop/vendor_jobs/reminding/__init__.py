"""What the service tells people before it hurts: a reminder is a row before it is a message, one for each true event."""
