"""Options that may be given once only; no layer is loaded for this."""

import argparse


class Once(argparse.Action):
    """An option that may be given once: a second value would replace the first."""

    def __call__(
        self,
        parser: argparse.ArgumentParser,
        namespace: argparse.Namespace,
        values: object,
        option_string: str | None = None,
    ) -> None:
        """Keep the value, or refuse a second one."""
        given = vars(namespace).setdefault("given", set())
        if self.dest in given:
            raise argparse.ArgumentError(self, "it is given twice: keep one")
        given.add(self.dest)
        setattr(namespace, self.dest, values)


def only_once(parser: argparse.ArgumentParser) -> None:
    """Let a parser refuse options given twice, but for those that may be."""
    for name in (None, "store"):
        parser.register("action", name, Once)
