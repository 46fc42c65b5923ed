"""`millpond user`: who may sign in to the page."""

import argparse

_DESCRIPTION = """\
Say who may sign in to the page, in the file that users names under [page] in the plant file.
The running page takes up a change at once. Passwords are asked for, or read from standard input
where that is no terminal; only their hashes are kept."""

_EPILOG = """\
examples:
  millpond user add north.toml ann --role enter
  millpond user add north.toml panel-3 --role look --token
  millpond user list north.toml
  millpond user remove north.toml ann

--token is for a program that uses the HTTP API: its token is shown once, and kept as a hash.

roles: look at everything; enter what was poured, measured and done; change alarms and plant file
"""


def add(commands: "argparse._SubParsersAction[argparse.ArgumentParser]") -> None:
    """Register the command."""
    parser = commands.add_parser(
        "user",
        help="say who may sign in to the page",
        description=_DESCRIPTION,
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    actions = parser.add_subparsers(dest="action", metavar="ACTION", required=True)
    for name, help_text in (
        ("add", "add somebody, or give them another role and password"),
        ("remove", "remove somebody"),
        ("list", "list names and roles"),
    ):
        action = actions.add_parser(name, help=help_text)
        action.add_argument("plant", metavar="PLANT.toml", help="the plant file")
        if name != "list":
            action.add_argument("name", metavar="NAME", help="letters, digits and . _ -")
        if name == "add":
            action.add_argument(
                "--role", choices=("look", "enter", "change"), default="enter", help="default enter"
            )
            action.add_argument(
                "--token", action="store_true", help="a program: show a token, ask no password"
            )
    parser.set_defaults(run=run)


def run(options: argparse.Namespace) -> int:
    """Change or list the users; the exit code."""
    from pathlib import Path

    from agent.page.people import UsersError, new_user, read_users, token_user, write_users
    from agent.plant.load import load_plant

    page = load_plant(Path(options.plant)).page
    if page is None or page.users is None:
        raise UsersError(f'{options.plant}: expected users = "..." under [page]')
    users = read_users(page.users) if page.users.exists() else {}
    if options.action == "list":
        for user in users.values():
            print(f"{user.name}  {user.role.word}{'  program' if user.is_program else ''}")
        return 0
    token = ""
    if options.action == "add" and options.token:
        users[options.name], token = token_user(options.name, options.role)
    elif options.action == "add":
        users[options.name] = new_user(options.name, options.role, _password())
    elif users.pop(options.name, None) is None:
        raise UsersError(f"{options.name}: nobody of that name in {page.users}")
    write_users(page.users, users)
    if token:
        print(token)
    return 0


def _password() -> str:
    """Ask for a password, twice; from standard input its first line."""
    import getpass
    import sys

    from agent.page.people import UsersError

    if not sys.stdin.isatty():
        return sys.stdin.readline().rstrip("\n")
    password = getpass.getpass("password: ")
    if getpass.getpass("again: ") != password:
        raise UsersError("the two passwords differ")
    return password
