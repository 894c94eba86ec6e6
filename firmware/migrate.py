"""What earlier versions left on the file system, taken over at boot before anything else is loaded; nothing of it is ever deleted.

Version 0.1 kept its segments in a folder `store`. A folder is found before a module of the same name, so `import store` found the folder from the
second boot on. Here, therefore, names on the file system are never those of modules.
"""

import os

from ring import FOLDER, order

_OLD_FOLDER = "store"
_DIRECTORY = 0x4000


def folder(root):
    """Make the old segment folder the new one. Each step is one rename, whole or not at all when power goes; the next boot takes up the rest.

    Raises OSError when the file system refuses; what has not been moved yet is still in the old folder.
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
        except OSError:  # an entry whose rename was cut short is hidden until something is written: seen the next time
            if not more:
                raise


def _join(old, new):
    """Both are there: an old version ran again after a new one. Its segments are the younger ones."""
    here = order([int(name[:5]) for name in os.listdir(new) if _is_segment(name)])
    number = here[-1] if here else -1
    left = {int(name[:5]): name for name in os.listdir(old) if _is_segment(name)}
    for one in order(left):
        number = (number + 1) & 0xFFFF
        os.rename(old + "/" + left[one], "%s/%05d%s" % (new, number, left[one][5:]))
    for name in os.listdir(old):  # of the owner's own
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
