"""Papers from a draft; text formats come from templates/, a binary format is one module here."""
