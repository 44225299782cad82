"""JupyterHub for a class of 30 on one machine. `boostkit class server` wrote this file; server.md beside it explains it.

Run as root, in the folder of this file: jupyterhub --config jupyterhub_config.py
"""

import sys
from pathlib import Path

from boostkit.classroom import server

HERE = Path(__file__).resolve().parent

# what you may want to change

LESSON = HERE / "lesson"  # the set of the lesson: boostkit class make LAB ROSTER.csv -o lesson
ADDRESS, PORT = "", 443  # "" is every address of this machine
CERTIFICATE, PRIVATE_KEY = HERE / "server.crt", HERE / "server.key"
TEACHERS: set[str] = set()  # accounts that may also log in, see who works and stop a learner's server
SEATS = 32  # learners who work at the same time
MEMORY = 2_000_000_000  # bytes that one program of a learner may take
IDLE = 3600  # seconds after which an idle workbook's kernel ends, and half of that later its learner's server

# the rest belongs together

c = get_config()  # noqa: F821  (JupyterHub's loader puts it here)
KEYS = server.checked(LESSON, CERTIFICATE, PRIVATE_KEY)  # raises where learners could read the teacher's keys

# who may come in: the keys of the lesson, each an account of this machine with its own password
c.JupyterHub.authenticator_class = "pam"
c.Authenticator.allowed_users = set(KEYS) | TEACHERS
c.Authenticator.admin_users = set(TEACHERS)

# passwords and work cross the network encrypted only
c.JupyterHub.bind_url = f"https://{ADDRESS}:{PORT}/"
c.JupyterHub.ssl_cert = str(CERTIFICATE)
c.JupyterHub.ssl_key = str(PRIVATE_KEY)
c.JupyterHub.db_url = f"sqlite:///{HERE / 'hub.sqlite'}"
c.JupyterHub.cookie_secret_file = str(HERE / "cookie_secret")
c.ConfigurableHTTPProxy.pid_file = str(HERE / "proxy.pid")

# each learner's server is a process of that learner's own account, so that the machine's file rights keep them apart
c.JupyterHub.spawner_class = "localprocess"
c.Spawner.pre_spawn_hook = lambda spawner: server.put(LESSON, spawner.user.name)
c.Spawner.notebook_dir = "~"
c.Spawner.default_url = f"/lab/tree/{LESSON.name}"

# a class comes in all at once: nobody is turned away (status 429), each start takes its time, and none is given up too early
c.JupyterHub.concurrent_spawn_limit = SEATS
c.JupyterHub.active_server_limit = SEATS
c.Spawner.start_timeout = 300
c.Spawner.http_timeout = 300

# one learner's mistake stays that learner's: memory, number of programs, and one thread for linear algebra each
c.Spawner.cmd = ["prlimit", f"--data={MEMORY}", "--nproc=500", "--core=0", sys.executable, "-m", "jupyterhub.singleuser"]
c.Spawner.environment = {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}

# what nobody uses gives its memory back
c.JupyterHub.shutdown_on_logout = True
c.Spawner.args = [
    "--KernelManager.transport=ipc",  # over TCP any account of the machine could listen to what a workbook prints
    f"--MappingKernelManager.cull_idle_timeout={IDLE}",
    "--MappingKernelManager.cull_interval=60",
    "--MappingKernelManager.cull_connected=True",
    f"--ServerApp.shutdown_no_activity_timeout={IDLE // 2}",
    "--ServerApp.terminals_enabled=False",
]
