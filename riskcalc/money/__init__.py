"""Money: yearly cash flows, payback, worth. Cost negative, saving positive; nominal unless named `real_`.

Arrays carry the draws on the last axis. Row 0 of a flow array is the day of purchase, row y the end of year y.
"""
