"""``python -m watchkeeper`` is the ``watchkeeper`` command."""

from .cli import main

main()
