"""Figures and formulae that handbooks and standards give: light, preferred values, bending, junctions.

Every module may be imported from anywhere. Nothing here knows of this program's files, parts or walkers;
each figure names its source.
"""
