"""What is published of a run: all of result.json, and the data of every page."""
