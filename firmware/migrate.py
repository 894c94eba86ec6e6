"""Moves earlier versions' files at boot, before anything else is loaded; never deletes any.

Version 0.1 kept its segments in a folder `store`. A folder is found before a module of the same name, so from the second boot on `import store` found the
folder. Therefore no file or folder may have the name of a module.
"""

import os

from ring import FOLDER, order

_OLD_FOLDER = "store"
_DIRECTORY = 0x4000


def folder(root):
    """Make the old segment folder the new one. Each step is one atomic rename; after a power cut the next boot does the rest.

    Raises OSError when the file system refuses; what has not been moved is still in the old folder.
    """
    old, new = root + _OLD_FOLDER, root + FOLDER
    if not _is_directory(old):
        return
    if not _is_directory(new):
        os.rename(old, new)
        return
    for more in (2, 1, 0):
        try:
            _join(old, new)
            return
        except OSError:  # an entry whose rename was cut short is hidden until something is written: try again
            if not more:
                raise


def _join(old, new):
    """For when both folders exist: an old version ran again after a new one, so its segments are the younger ones."""
    here = order([int(name[:5]) for name in os.listdir(new) if _is_segment(name)])
    number = here[-1] if here else -1
    left = {int(name[:5]): name for name in os.listdir(old) if _is_segment(name)}
    for one in order(left):
        number = (number + 1) & 0xFFFF
        os.rename(old + "/" + left[one], "%s/%05d%s" % (new, number, left[one][5:]))
    for name in os.listdir(old):  # the user's files
        to = new + "/" + name
        while _exists(to):
            to += "_"
        os.rename(old + "/" + name, to)
    os.rmdir(old)


def _is_segment(name):
    return name[:5].isdigit() and name[5:] in (".seg", ".key")


def _exists(path):
    try:
        return os.stat(path)
    except OSError:
        return None


def _is_directory(path):
    found = _exists(path)
    return bool(found and found[0] & _DIRECTORY)
