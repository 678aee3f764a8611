"""Run the command line with ``python -m registry``."""

from registry.cli import main

if __name__ == "__main__":
    main()
