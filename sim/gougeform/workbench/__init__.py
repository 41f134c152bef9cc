"""The workbench: a page on this machine where settings are turned and the edge answers."""
