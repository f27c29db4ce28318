"""The starter study: one template, scaled to a machine's name-plate."""
