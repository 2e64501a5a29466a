"""The command line: thin. It reads arguments, hands over, and turns outcomes into words and an exit status.

Messages go to standard error, results to standard output. Everything heavy is imported when it is needed, so that
`--help`, a wrong argument and a build with nothing to do answer at once.
"""

from __future__ import annotations

import argparse
import gc
import sys
from collections.abc import Sequence

from kerfwave import streams
from kerfwave.findings import visible

DONE, FAILED_CHECK, WRONG_INPUT, MACHINE_FAILED, INTERRUPTED = 0, 1, 2, 3, 130

EPILOG = """\
exit status: 0 done; 1 done, but a design check failed; 2 the input is wrong and nothing was written;
3 the machine failed us (disk full, no permission) and the last good package is untouched.
For compare: 0 the same, 1 different, 2 the input is wrong.
"""


def parser() -> argparse.ArgumentParser:
    """Return the parser of the whole command line."""
    from kerfwave import __version__

    top = argparse.ArgumentParser(
        prog="kerfwave",
        description="From one YAML spec to everything the bench needs to build a small laser-cut loudspeaker.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    top.add_argument("--version", action="version", version=f"kerfwave {__version__}")
    commands = top.add_subparsers(dest="command", required=True, metavar="COMMAND")
    build = commands.add_parser(
        "build",
        help="make a package from each spec",
        description="Make a package from each spec: sheets, programs, bill of materials and build guide. Only what a "
        "change touches is worked out again.",
    )
    check = commands.add_parser(
        "check",
        help="check specs and size them, without a package",
        description="Check each spec, size, fold and slice it, and list the design checks. No package is written.",
    )
    for command in (build, check):
        command.add_argument("specs", nargs="+", metavar="SPEC", help="a spec file (YAML)")
        command.add_argument("--out", default="out", metavar="DIR", help="folder for packages and cache (default: out)")
        command.add_argument("--explain", action="store_true", help="say why each stage ran")
        command.add_argument("--jobs", type=processes, default=1, metavar="N", help="specs at once (default: 1)")
    check.add_argument("--format", choices=("text", "json"), default="text", help="of what is printed (default: text)")
    completion = commands.add_parser(
        "completion",
        help="print a script that completes commands in a shell",
        description="Print a script that completes commands, options and their values. Its first line says how to "
        "load it.",
    )
    completion.add_argument("shell", choices=("bash", "zsh", "fish"), help="the shell that loads it")
    from kerfwave import compare_jobs, cut_jobs, explore_jobs, fit_jobs, learn_jobs, promise_jobs, sweep_jobs

    for bench in (compare_jobs, explore_jobs, cut_jobs, sweep_jobs, fit_jobs, promise_jobs, learn_jobs):
        bench.add_parser(commands)
    return top


def processes(text: str) -> int:
    """Return the number of processes that an argument asks for."""
    if not text.isdigit() or not 1 <= int(text) <= 256:
        raise argparse.ArgumentTypeError(f"{text!r} is no number from 1 to 256")
    return int(text)


def main(argv: Sequence[str] | None = None) -> int:
    """Run the program; return its exit status."""
    streams.settle()
    arguments = parser().parse_args(argv)
    # A build makes many values and hardly a ring of them: to look for rings as often as by default takes a twentieth
    # of its time.
    gc.set_threshold(100_000, 50, 100)
    try:
        status = _run(arguments)
        sys.stdout.flush()  # while there is still somebody to tell
    except KeyboardInterrupt:
        print("interrupted; the last good package is untouched", file=sys.stderr)
        return INTERRUPTED
    except BrokenPipeError:
        # Whoever read our output has gone; that is no failure of ours.
        streams.let_go_of_output()
        return DONE
    except OSError as error:
        from kerfwave.engine.files import advice

        print(f"kerfwave: {visible(str(error.filename or 'standard output'))}: {advice(error)}", file=sys.stderr)
        streams.let_go_of_output()
        return MACHINE_FAILED
    except Exception:
        # Python's own status for this is 1, which here means that a package was made.
        import traceback

        traceback.print_exc()
        print("kerfwave: this is a fault in kerfwave, not in your files; nothing was written", file=sys.stderr)
        return MACHINE_FAILED
    return status


def _run(arguments: argparse.Namespace) -> int:
    from kerfwave import jobs

    if arguments.command in ("compare", "explore", "sweep", "fit", "promise", "learn"):
        from importlib import import_module

        status: int = import_module(f"kerfwave.{arguments.command}_jobs").run(arguments)
        return status
    if arguments.command in ("coupon", "resume"):
        from kerfwave import cut_jobs

        return cut_jobs.run(arguments)
    if arguments.command == "completion":
        from kerfwave.completion import script

        print(script(parser(), arguments.shell), end="")
        return DONE
    if arguments.command == "check" and arguments.format == "json":
        from kerfwave import check_jobs

        return check_jobs.run(arguments.specs, arguments.out)
    how = {"write": arguments.command == "build", "explain": arguments.explain}
    if arguments.jobs > 1 and len(arguments.specs) > 1:
        from kerfwave import parallel_jobs

        return parallel_jobs.run(arguments.specs, arguments.out, **how, processes=arguments.jobs)
    return jobs.run(arguments.specs, arguments.out, **how)


if __name__ == "__main__":
    sys.exit(main())
