"""The mutation gate: small wrong changes are made to the program, and the tests must notice."""
