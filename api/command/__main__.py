"""``python -m api.command`` is ``drawerwright``."""

from api.command import main

if __name__ == "__main__":
    main()
