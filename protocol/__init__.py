"""Both ends of the wire: the specification, the codec and the link. Standard library only."""
