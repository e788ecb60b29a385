"""`python -m lanternist`."""

import sys

from lanternist.cli import main

sys.exit(main())
