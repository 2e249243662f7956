"""The files a person keeps: what they may hold, reading them with line and column, writing them back."""
