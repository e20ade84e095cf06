"""How far the next run may go: release steps, credentials, open items, barred settings."""
