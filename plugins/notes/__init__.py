"""What have this shop and others seen on this pin? Notes, and what they say together."""
