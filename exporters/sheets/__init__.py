"""The papers that go to the floor, set by typst: what they say is made here, how it looks is in `templates`."""
