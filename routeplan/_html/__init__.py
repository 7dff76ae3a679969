"""Presentation as an interactive page: sections, the data behind them, styles and scripts."""
