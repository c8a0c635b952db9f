"""``python -m imuproc`` is the same as ``imuproc``."""

from imuproc.cli.main import main

if __name__ == "__main__":
    main()
