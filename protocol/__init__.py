"""Both ends of the wire: the specification, the codec and the link. It uses the standard library only."""
