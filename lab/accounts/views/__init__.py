"""Pages of signing in, of one's own account, and of the people of the lab."""

from lab.accounts.views.sign_in import locked_out

__all__ = ["locked_out"]
