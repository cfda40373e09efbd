"""Pure numbers: numpy arrays in, dataclasses out. No I/O, no clock, no asyncio."""
