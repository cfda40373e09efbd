"""The service: ingest, database, live analysis, REST, export and command line."""
