"""Pictures: photos with what was found drawn on them, views, plots, before and after."""
