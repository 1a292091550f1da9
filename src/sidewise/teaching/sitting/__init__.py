"""One sitting of an examination, analysed whole."""
