"""Sign-in, enforced before any page script is asked."""
