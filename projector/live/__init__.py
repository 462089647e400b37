"""The local page: one scene on a desk, its picture made as it is changed, served to a browser on the same machine."""
