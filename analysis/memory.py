"""Memory that is free again, given back between the steps of a large run.

What a step has used up stays with the process in pieces, and the next step asks for
more beside it.
"""

import ctypes

import pyarrow as pa


def give_back() -> None:
    """Give back to the system what is free, where its C library can (glibc)."""
    pa.default_memory_pool().release_unused()
    try:
        ctypes.CDLL(None).malloc_trim(0)
    except (AttributeError, OSError, TypeError):  # another C library has no such thing
        return
