"""Speed and memory, side by side with a baseline in the same run."""
