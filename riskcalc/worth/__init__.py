"""From energy to money: price paths, costs, what the kit saves, what that is worth."""
