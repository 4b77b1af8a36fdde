"""Reports on paper and screen from what the journal holds."""
