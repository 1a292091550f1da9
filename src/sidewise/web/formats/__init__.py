"""How numbers and dates stand in pages, by language; see `FORMAT_MODULE_PATH`."""
