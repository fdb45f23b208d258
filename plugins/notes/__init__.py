"""What this shop and others have seen on a pin."""
