"""A column of text for pandas that keeps each different text once (cf. `texts`).

It builds on parts of pandas that are not public (``_pa_array`` above all), which are
the same in pandas 3.0 and 3.1. No other module makes one: `texts` does, where it finds
that the pandas installed knows it as its own.
"""

from collections.abc import Callable, Iterator, Sequence
from typing import Any, NamedTuple, Self

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

Codes = npt.NDArray[np.int32]
#: The columns of text that pandas has itself, and their dtype.
PLAIN: Any = pd.arrays.ArrowStringArray
STR = pd.StringDtype(storage="pyarrow", na_value=np.nan)


class Coded(NamedTuple):
    """A number a row, what the numbers stand for, and if in order of appearance."""

    codes: Codes
    different: pa.Array
    is_tidy: bool = False


def _each_once(name: str) -> Callable[..., Any]:
    """Give a method that works on each different text, and gives rows what it found."""

    def of_each(self: Any, *args: Any, **kwargs: Any) -> Any:
        method = getattr(PLAIN, name)
        if self._coded is None:
            return method(self, *args, **kwargs)
        codes, different, _ = self._coded
        return spread_out(method(PLAIN(different, dtype=STR), *args, **kwargs), codes)

    return of_each


class CodedText(PLAIN):  # type: ignore[misc]
    """A column of text by codes, without missing values; else one like any other.

    Every method gives what the one of its base class gives for the same texts, in the
    same order: those here are quicker, and all others work on the texts written out.
    """

    _coded: Coded | None
    _whole: pa.ChunkedArray | None

    @classmethod
    def of(cls, codes: Codes, different: pa.Array, *, is_tidy: bool = False) -> Self:
        """Give a column by its codes, whatever pandas is installed (cf. `by_codes`).

        Parameters
        ----------
        codes : array of int, shape (n,)
            Which text each row has; not to be changed any more.
        different : pyarrow Array of large_string, shape (m,)
            Texts, each once, none missing; rows need not have all of them.
        is_tidy : bool
            Rows have all of them, and they stand in the order they first appear.

        Returns
        -------
        CodedText
            Of dtype ``str``.
        """
        return cls._made(Coded(codes.astype(np.int32, copy=False), different, is_tidy))

    @classmethod
    def _made(cls, coded: Coded, whole: pa.ChunkedArray | None = None) -> Self:
        made: Self = cls.__new__(cls)
        made._dtype, made._cache = STR, {}
        made._coded, made._whole = coded, whole
        return made

    def _written(self, different: pa.Array) -> Self:
        """Give texts of which each stands once, as a column of their own."""
        return type(self)(different, dtype=self._dtype)

    @property
    def _pa_array(self) -> pa.ChunkedArray:
        """The texts of all rows: what the methods of the base class work on."""
        if self._whole is None:
            codes, different, _ = self._coded  # type: ignore[misc]
            self._whole = pa.chunked_array([different.take(pa.array(codes))])
        return self._whole

    @_pa_array.setter
    def _pa_array(self, values: pa.ChunkedArray) -> None:
        self._whole, self._coded = values, None

    def __getstate__(self) -> dict[str, Any]:
        # Some rows on their way to a worker take their own texts along, and no others.
        coded = None if self._coded is None else self._tidy()
        whole = self._whole if coded is None else None
        return {"_dtype": self._dtype, "_coded": coded, "_whole": whole}

    def __setstate__(self, state: dict[str, Any]) -> None:
        self.__dict__.update(state, _cache={})

    def _tidy(self) -> Coded | None:
        """Give the codes in order of appearance; None where some text is missing."""
        coded = self._coded
        if coded is None:
            if self._whole.null_count:  # type: ignore[union-attr]
                return None
            coded = encoded(self._whole)
        elif not coded.is_tidy:
            coded = _tidied(coded)
        self._coded = coded
        return coded

    def __len__(self) -> int:
        if self._coded is not None:
            return len(self._coded.codes)
        return len(self._whole)  # type: ignore[arg-type]

    @property
    def nbytes(self) -> int:
        """Bytes that the column takes.

        Returns
        -------
        int
            Without the texts of all rows, where they are not written out.
        """
        if self._coded is None:
            return int(self._whole.nbytes)  # type: ignore[union-attr]
        return int(self._coded.codes.nbytes + self._coded.different.nbytes)

    @property
    def _hasna(self) -> bool:
        return self._coded is None and bool(super()._hasna)

    def isna(self) -> npt.NDArray[np.bool_]:  # noqa: D102 - as in the base class
        if self._coded is None:
            return super().isna()  # type: ignore[no-any-return]
        return np.zeros(len(self), dtype=np.bool_)

    def copy(self) -> Self:  # noqa: D102
        if self._coded is None:
            return super().copy()  # type: ignore[no-any-return]
        return self._made(self._coded, self._whole)

    def view(self, dtype: Any = None) -> Any:  # noqa: D102
        return self.copy() if dtype is None else super().view(dtype)

    def __iter__(self) -> Iterator[Any]:
        return super().__iter__() if self._hasna else iter(self.to_numpy().tolist())

    def __getitem__(self, item: Any) -> Any:
        if self._coded is None:
            return super().__getitem__(item)
        item = pd.api.indexers.check_array_indexer(self, item)
        codes, different, _ = self._coded
        if isinstance(item, slice) or (
            isinstance(item, np.ndarray) and item.dtype.kind in "biu"
        ):
            return self.of(codes[item], different)
        if isinstance(item, int | np.integer):
            return different[int(codes[item])].as_py()
        return super().__getitem__(item)

    def take(  # noqa: D102
        self,
        indices: Any,
        allow_fill: bool = False,  # noqa: FBT001, FBT002
        fill_value: Any = None,
    ) -> Any:
        at = np.asarray(indices)
        is_filled = allow_fill and at.size > 0 and int(at.min()) < 0
        if self._coded is None or is_filled or not len(self):
            return super().take(indices, allow_fill=allow_fill, fill_value=fill_value)
        return self.of(self._coded.codes.take(at), self._coded.different)

    @classmethod
    def _concat_same_type(cls, to_concat: Sequence[Any]) -> Any:
        if len(to_concat) == 1:
            return to_concat[0].copy()
        found = [getattr(part, "_coded", None) for part in to_concat]
        parts = [part for part in found if part is not None and not _is_unlike(part)]
        if len(parts) < len(found):
            return super()._concat_same_type(to_concat)
        every = encoded(pa.chunked_array([part.different for part in parts]))
        ends = np.cumsum([len(part.different) for part in parts])[:-1]
        places = np.split(every.codes, ends)
        codes = [place.take(p.codes) for place, p in zip(places, parts, strict=True)]
        return cls.of(np.concatenate(codes), every.different)

    def factorize(  # noqa: D102
        self,
        use_na_sentinel: bool = True,  # noqa: FBT001, FBT002
    ) -> tuple[npt.NDArray[np.intp], Any]:
        coded = self._tidy()
        if coded is None:
            return super().factorize(use_na_sentinel)  # type: ignore[no-any-return]
        codes = coded.codes.astype(np.intp)
        return codes, self._written(coded.different)

    def unique(self) -> Any:  # noqa: D102
        coded = self._tidy()
        if coded is None:
            return super().unique()
        return self._written(coded.different)

    def value_counts(self, dropna: bool = True) -> pd.Series:  # noqa: D102, FBT001, FBT002
        coded = self._tidy()
        if coded is None:
            return super().value_counts(dropna)  # type: ignore[no-any-return]
        counts = np.bincount(coded.codes, minlength=len(coded.different))
        index = pd.Index(self._written(coded.different), copy=False)
        return pd.Series(counts, index=index, name="count", copy=False)

    def isin(self, values: Any) -> npt.NDArray[np.bool_]:  # noqa: D102
        if self._coded is None:
            return super().isin(values)  # type: ignore[no-any-return]
        return self._of_each(lambda texts: texts.isin(values))

    def _cmp_method(self, other: Any, op: Callable[..., Any]) -> Any:
        if self._coded is None or not isinstance(other, str):
            return super()._cmp_method(other, op)
        return self._of_each(lambda texts: op(texts, other))

    def _of_each(self, tell: Callable[[Any], Any]) -> npt.NDArray[np.bool_]:
        """Give what is told of each different text to the rows that have it."""
        codes, different, _ = self._coded  # type: ignore[misc]
        told: npt.NDArray[np.bool_] = np.asarray(
            tell(PLAIN(different, dtype=STR)), dtype=np.bool_
        )
        if len(told) == 1:
            return np.full(len(codes), told[0])
        return told.take(codes)

    def argsort(  # noqa: D102
        self,
        *,
        ascending: bool = True,
        kind: Any = "quicksort",
        na_position: str = "last",
        **kwargs: Any,
    ) -> npt.NDArray[np.intp]:
        if self._coded is None:
            return super().argsort(  # type: ignore[no-any-return]
                ascending=ascending, kind=kind, na_position=na_position, **kwargs
            )
        codes, different, _ = self._coded
        rank = np.empty(len(different), dtype=np.int32)
        rank[pc.array_sort_indices(different)] = np.arange(len(different))
        ranks = rank.take(codes)
        return np.argsort(ranks if ascending else -ranks, kind="stable")

    def to_numpy(  # noqa: D102
        self,
        dtype: Any = None,
        copy: bool = False,  # noqa: FBT001, FBT002
        na_value: Any = pd.api.extensions.no_default,
    ) -> npt.NDArray[Any]:
        if self._coded is None or dtype not in (None, object):
            return super().to_numpy(dtype, copy, na_value)  # type: ignore[no-any-return]
        if len(self) < len(self._coded.different):
            # A few rows of many: their own texts are written, and not all there are.
            few: npt.NDArray[Any] = super().to_numpy(dtype, copy, na_value)
            return few
        texts: npt.NDArray[Any] = self._coded.different.to_numpy(zero_copy_only=False)
        return texts.take(self._coded.codes)

    _str_contains = _each_once("_str_contains")
    _str_endswith = _each_once("_str_endswith")
    _str_fullmatch = _each_once("_str_fullmatch")
    _str_len = _each_once("_str_len")
    _str_match = _each_once("_str_match")
    _str_removeprefix = _each_once("_str_removeprefix")
    _str_removesuffix = _each_once("_str_removesuffix")
    _str_replace = _each_once("_str_replace")
    _str_startswith = _each_once("_str_startswith")
    _str_strip = _each_once("_str_strip")

    def __setitem__(self, key: Any, value: Any) -> None:
        is_mask = isinstance(key, np.ndarray) and key.dtype == np.bool_
        if (
            self._coded is None
            or getattr(self, "_readonly", False)
            or not (is_mask and isinstance(value, str) and len(key) == len(self))
        ):
            super().__setitem__(key, value)
            return
        codes, different, _ = self._coded
        at = pc.index(different, pa.scalar(value, pa.large_string())).as_py()
        if at < 0:
            at = len(different)
            own = pa.array([value], pa.large_string())
            different = pa.concat_arrays([different, own])
        codes = codes.copy()
        codes[key] = at
        self._coded, self._whole = Coded(codes, different), None
        self._cache.clear()


def encoded(texts: pa.ChunkedArray | pa.Array) -> Coded:
    """Give the codes of texts.

    Parameters
    ----------
    texts : pyarrow array of large_string
        None missing.

    Returns
    -------
    tuple of (array of int, pyarrow Array, bool)
        What `CodedText.of` takes: a number a row, the different texts, and that they
        stand in the order they first appear.
    """
    found = texts.cast(pa.large_string()).dictionary_encode()
    if isinstance(found, pa.ChunkedArray):
        found = found.combine_chunks()
    return Coded(found.indices.to_numpy(), found.dictionary, is_tidy=True)


def spread_out(given: Any, codes: npt.NDArray[np.integer]) -> Any:
    """Give rows what was found for each different text (cf. `texts.spread`).

    Parameters
    ----------
    given : array of str, or of anything else, shape (m,)
        What was found.
    codes : array of int, shape (n,)
        Places in `given`.

    Returns
    -------
    array, shape (n,)
        A `CodedText` of texts, if none is missing; anything else as it is taken.
    """
    if not isinstance(given, PLAIN) or given.isna().any():
        return given.take(codes)
    own = encoded(pa.array(given, pa.large_string()))
    return CodedText.of(own.codes.take(codes), own.different)


def _is_unlike(coded: Coded) -> bool:
    """Tell that texts hardly repeat, so that codes gain nothing."""
    return 2 * len(coded.different) > len(coded.codes)


def _tidied(coded: Coded) -> Coded:
    """Give codes that count texts up as they appear, without those no row has."""
    codes, different, _ = coded
    n, m = len(codes), len(different)
    first = np.full(m, n, dtype=np.int64)
    first[codes[::-1]] = np.arange(n - 1, -1, -1)
    if (np.diff(first) > 0).all() and (not m or first[-1] < n):
        return Coded(codes, different, is_tidy=True)
    order = np.argsort(first, kind="stable")
    order = order[: np.count_nonzero(first < n)]
    place = np.zeros(m, dtype=np.int32)
    place[order] = np.arange(len(order))
    return Coded(place.take(codes), different.take(pa.array(order)), is_tidy=True)
