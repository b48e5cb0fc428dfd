"""A site's side: fetch, verify, keep, show. Needs neither git nor the book."""
