"""What perfect foresight could reach with a kit, and how near the rule of a scenario comes to it."""
