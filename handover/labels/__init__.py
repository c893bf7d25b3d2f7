"""Schedule values → words for people. Nothing here decides anything; every value that the core can give has words."""
