"""Flags in plain English: the one place where what a flag found becomes words."""

from string import Formatter
from typing import Any

from imuproc.core.flag_list import FLAGS
from imuproc.core.flags import RaisedFlag, Value
from imuproc.core.words import format_count, join_words


def describe_flag(flag: RaisedFlag) -> str:
    """What was found, where and how much, in words; empty where a flag says it all by its name.

    Parameters
    ----------
    flag : RaisedFlag

    Returns
    -------
    str
        Values of a flag that this version does not know are named one by one.

    Examples
    --------
    >>> found = {"by_degps": 2.47, "left_out": True}
    >>> describe_flag(RaisedFlag("gyro_zero_moved", found, "left_foot"))
    'by 2.5 deg/s: not used'
    """
    if not (flag.values or flag.span_s):
        return ""
    if "detail" in flag.values:  # of an archive of schema 1
        return str(flag.values["detail"])
    told = list_template_values(flag)
    template = find_template(flag)
    if template is not None:
        return _WORDS.vformat(template, (), told)
    return ", ".join(f"{_format_plain(name)} {value}" for name, value in flag.values.items())


def find_template(flag: RaisedFlag) -> str | None:
    """The first template of a flag's kind that needs no other values than those that it has."""
    known = FLAGS.get(flag.name)
    told = list_template_values(flag)
    templates = known.details if known else ()
    return next((one for one in templates if list_template_names(one) <= told.keys()), None)


def list_template_values(flag: RaisedFlag) -> dict[str, Value]:
    """What a template may name: the flag's values, and its ``span`` in words or by its ends."""
    told = dict(flag.values)
    if flag.span_s is not None:
        told["span"] = _format_span(*flag.span_s, int(flag.values.get("stretches", 1)))
        told["from_s"], told["to_s"] = flag.span_s
    return told


def list_template_names(template: str) -> set[str]:
    """Names of the values that a template needs."""
    return {name for _, name, _, _ in Formatter().parse(template) if name}


def describe_site(flag: RaisedFlag) -> str:
    """The sensor that a flag is about, in words; empty where it is none in particular."""
    return _format_plain(flag.site)


def _format_plain(name: str) -> str:
    return name.replace("_", " ")


def _format_span(from_s: float, to_s: float, stretches: int) -> str:
    """When something was so; open at an infinite end."""
    several = f", in {format_count(stretches, 'stretch')}" if stretches > 1 else ""
    if to_s == float("inf"):
        words = "throughout" if from_s == -to_s else f"from {from_s:.10g} s on"
    elif from_s == float("-inf"):
        words = f"up to {to_s:.10g} s"
    else:
        words = f"from {from_s:.10g} to {to_s:.10g} s"
    return words + several


class _Words(Formatter):
    """Templates as ``str.format`` takes them, and some more ways of telling a value.

    ``{samples:sample}``: a count and its noun; ``{off_s:.0fms}``: seconds as milliseconds;
    ``{left_out:, not used}``: these words where it is so; ``{foot:plain}``: a name as words,
    ``{figure:figure}``: a column's without its unit; ``{sites:list}``: names joined by ``;`` as a
    sentence lists them.
    """

    def format_field(self, value: Any, format_spec: str) -> str:
        if isinstance(value, bool):
            return format_spec if value else ""
        if isinstance(value, int) and format_spec.isalpha():
            return format_count(value, format_spec)
        if format_spec.endswith("ms"):
            return f"{1e3 * value:{format_spec[:-2]}} ms"
        if format_spec == "list":
            return join_words([_format_plain(name) for name in str(value).split(";")])
        if format_spec == "figure":
            return _format_plain(str(value).rsplit("_", 1)[0])
        if format_spec == "plain":
            return _format_plain(str(value))
        return format(value, format_spec)


_WORDS = _Words()
