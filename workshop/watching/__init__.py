"""What the site tells of itself: its log, its numbers, what was slow, and what it stands on."""
