"""Any number of jobs analysed on many processes or computers, kept as a data set of three Parquet tables.

`columns.py` says what stands in them, `dataset.py` reads them. The analysis itself is that of a single job; nothing
here judges anything.
"""
