"""Records as tables: long and wide, CSV, Parquet and XLSX, with a dictionary of every column."""
