"""Changes one thing after the other in a module and sees whether its tests notice."""
