"""The circuit of one walker: its flat record, and the kernels of panel, eyes, latch, charging and pulse.

The engine, the bench and the causes of replays import the kernels; records come in, status and figures go
out. Nothing here reads text, knows of designs or of an arena, prints or raises.
"""
