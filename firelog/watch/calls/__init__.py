"""Who is called for what, how it is delivered, and how a call is answered."""
