"""The workbench: turn a figure of a scenario and see the answer move. Served to this machine only."""
