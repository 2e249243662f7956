"""What a frame weighs, what it carries, what it ships in and what it costs."""
