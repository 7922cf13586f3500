"""``python -m tests.study`` is ``python -m tests.study.accuracy``."""

from tests.study.accuracy import main

raise SystemExit(main())
