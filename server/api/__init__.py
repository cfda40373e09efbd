"""REST and WebSocket routes, a router a file; thin, for the work is done elsewhere."""
