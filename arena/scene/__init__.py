"""What stands in an arena and who enters it: from the text of its file to flat records, checked on the way.

Every module may be imported from the rooms above. Nothing here moves: time begins in the engine.
"""
