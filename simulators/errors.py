"""What the simulator tells its user when it cannot go on."""


class SimulatorError(Exception):
    """Something that the user can put right; the command line prints it in one line."""


class ScenarioError(SimulatorError):
    """A scenario file that cannot be used.

    Attributes
    ----------
    source : str
        The file, or the name that was given.
    problems : list[str]
        All that is wrong, a line each.
    """

    def __init__(self, source: str, problems: list[str]) -> None:
        super().__init__("\n".join(f"{source}: {problem}" for problem in problems))
        self.source = source
        self.problems = problems
