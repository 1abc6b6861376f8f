"""The event language: its structs, the wire format, and the documents made from them."""
