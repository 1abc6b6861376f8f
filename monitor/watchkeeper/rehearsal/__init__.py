"""A simulated radio world that sends its hearings over the wire like any other source, from its own process.

Nothing here is read by the watch or by a plugin: the only way out is the event schema over UDP.
"""
