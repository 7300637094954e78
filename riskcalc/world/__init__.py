"""What a scenario fixes once: its slots, its pools of weather, sun and demand, the figures of its kit."""
