"""The door between text and numbers: YAML with places, units, readers of values, and the way back into text.

Above this room every quantity is a float of SI units (lux for light). Every module may be imported by all
other rooms; nothing here knows of designs, circuits or arenas: it takes the errors and nothing else.
"""
