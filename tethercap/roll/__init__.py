"""A roll on disk: names, record, files, metadata, fixity."""
