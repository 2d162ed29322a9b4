"""A collection: its pieces beside each other, what they take and cost, and when they are made."""
