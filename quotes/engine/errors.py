"""The one error of the engine."""


class BadInput(ValueError):
    """Something in the input cannot be priced.

    ``template`` is a sentence with named places, so that a page can translate it; ``values`` fill them.
    ``part`` and ``step`` say where, ``field`` names the input.
    """

    def __init__(self, template: str, *, part: str = "", step: str = "", field: str = "", **values: object) -> None:
        self.template = template
        self.part = part
        self.step = step
        self.field = field
        self.values = values
        super().__init__(self.sentence())

    def sentence(self, template: str | None = None) -> str:
        """The whole sentence with its place in front; give a translated ``template`` to say it in another language."""
        where = ", ".join(name for name in (self.part, self.step) if name)
        text = (template or self.template).format(**self.values)
        return f"{where}: {text}" if where else text

    def at(self, *, part: str = "", step: str = "") -> "BadInput":
        """The same error with its place filled in."""
        return BadInput(self.template, part=self.part or part, step=self.step or step, field=self.field, **self.values)
