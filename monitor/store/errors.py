"""What goes wrong with a store, in words."""


class StoreError(Exception):
    """The store cannot do what was asked. The text says where, what was found and what to do."""


class NotOursError(StoreError):
    """Another engine has the store, or a newer program wrote it: it must not be touched."""


class TakenBeforeError(StoreError):
    """An action of this id is on the disk already: it was taken, or is about to be."""


def in_words(error: BaseException) -> str:
    """The cause in one line, without the statement and its values."""
    return str(getattr(error, "orig", None) or error).strip().split("\n")[0] or type(error).__name__
