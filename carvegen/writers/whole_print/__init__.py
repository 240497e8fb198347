"""Pictures, reports and templates of a whole print."""
