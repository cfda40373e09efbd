"""From the radio to the service: profiles, clocks, sources, the wire, the collector."""
