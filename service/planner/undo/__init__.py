"""The undo table: what can be done about a drink that came out wrong, how far, and at what cost."""
