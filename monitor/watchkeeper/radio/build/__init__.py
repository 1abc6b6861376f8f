"""Makes the files of ``watchkeeper.radio.data`` from the published raw files: ``python -m watchkeeper.radio.build RAW``."""
