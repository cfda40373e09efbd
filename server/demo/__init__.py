"""The invented club of the demo: who is in it, what they did, and how it gets into the store."""
