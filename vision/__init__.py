"""Pictures and marks in, measured walls out: no files, no clock, no printing."""
