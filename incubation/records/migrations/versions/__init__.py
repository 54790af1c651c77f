"""The changes, oldest first by number. A change that was released is never edited."""
