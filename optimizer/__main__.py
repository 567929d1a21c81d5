"""`python -m optimizer` is `bankstring`."""

from optimizer.cli import main

if __name__ == "__main__":
    main()
