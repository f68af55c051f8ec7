"""Quantities as command options: `--time 14.3s` arrives as 14.3 [s]."""

from typing import Any

import click


class Quantity(click.ParamType):  # type: ignore[type-arg]
    """A typed quantity of one kind (a key of ``units.KINDS``), given to the command as an SI float."""

    def __init__(self, kind: str) -> None:
        self.kind = kind
        self.name = kind

    def get_metavar(self, param: click.Parameter, ctx: click.Context | None = None) -> str:
        """What stands in `--help`: the kind, in capitals."""
        return self.kind.upper().replace(" ", "-")

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """SI float of the text; raises InputError naming the option."""
        if not isinstance(value, str):
            return value
        from logger.core.quantities.units import parse

        return parse(value, self.kind, where=param.opts[0] if param else "")
