"""Rail geometry in plain numpy: sections, bend rows, centrelines. Knows no job."""
