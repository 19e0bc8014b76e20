"""``python -m monitor`` is the program ``holdwatch``."""

import sys

from monitor.begin import main

if __name__ == "__main__":
    sys.exit(main())
