"""Settings of the site; what differs between places comes through ``workshop.environment``."""

import re
from datetime import timedelta

from csp.constants import NONE, SELF

from workshop import environment
from workshop.watching.logs import logging_settings

DATA_FOLDER = environment.data_folder()
SECRET_KEY = environment.secret_key(DATA_FOLDER)
DEBUG = environment.flag("DEBUG")
# Hosts, origins, cookies and the sub-path follow from the one address people use; each can still be said apart.
BASE_URL = environment.base_url()
HTTPS = environment.flag("ENOUGH_THREAD_HTTPS", default=bool(BASE_URL and BASE_URL.is_https))
_HERE = ["localhost", "127.0.0.1", "[::1]"]
ALLOWED_HOSTS = environment.words("ALLOWED_HOSTS", default=[*([BASE_URL.host] if BASE_URL else []), *_HERE])
# Proxies whose word about the visitor's address is taken: addresses or networks.
TRUSTED_PROXIES = environment.words("ENOUGH_THREAD_PROXIES", default=[])
CSRF_TRUSTED_ORIGINS = environment.words(
    "CSRF_TRUSTED_ORIGINS", default=[BASE_URL.origin] if BASE_URL else []
)
if BASE_URL and BASE_URL.path != "/":
    FORCE_SCRIPT_NAME = BASE_URL.path.rstrip("/")
    SESSION_COOKIE_PATH = CSRF_COOKIE_PATH = BASE_URL.path

INSTALLED_APPS = [
    "workshop",
    "planning",
    "inventory",
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "whitenoise.runserver_nostatic",
    "django.contrib.staticfiles",
    "django_htmx",
    "django_tasks",
    "django_tasks_db",
    "axes",
]

MIDDLEWARE = [
    "workshop.watching.middleware.WatchMiddleware",
    "workshop.middleware.ClientAddressMiddleware",
    "workshop.api.problems.ProblemMiddleware",
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "django.middleware.gzip.GZipMiddleware",
    "workshop.trouble.middleware.TroubleMiddleware",
    "csp.middleware.CSPMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "workshop.middleware.PersonMiddleware",
    "workshop.middleware.NothingKeptMiddleware",
    "workshop.people.guard.GuardMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "axes.middleware.AxesMiddleware",
]

ROOT_URLCONF = "workshop.urls"
WSGI_APPLICATION = "workshop.wsgi.application"

TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "workshop.context.house",
            ],
            "builtins": [
                "django.templatetags.i18n",
                "django.templatetags.l10n",
                "workshop.templatetags.quantities",
                "workshop.templatetags.drawing",
                "workshop.templatetags.lean",
            ],
        },
    },
]

# ``serve`` gathers the static files first: compressed, named by their content, kept by browsers for a year.
SERVED = environment.flag("ENOUGH_THREAD_SERVED")
SERVING_THREADS = 4  # of one site process
# One connection for each of them, one for long work in the site itself, one for its signs of life.
DATABASES = {
    "default": environment.database_settings(
        environment.database_url(DATA_FOLDER), pooled=SERVING_THREADS + 2 if SERVED else 0
    )
}
DATABASE_ROUTERS = ["workshop.backup.routing.MigratedDatabase"]
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

AUTHENTICATION_BACKENDS = [
    "axes.backends.AxesStandaloneBackend",
    "django.contrib.auth.backends.ModelBackend",
]
LEAST_PASSWORD = 12  # characters; OWASP ASVS 4.0.3, 2.1.1
AUTH_PASSWORD_VALIDATORS = [
    {"NAME": f"django.contrib.auth.password_validation.{name}", "OPTIONS": options}
    for name, options in {
        "UserAttributeSimilarityValidator": {},
        "MinimumLengthValidator": {"min_length": LEAST_PASSWORD},
        "CommonPasswordValidator": {},
        "NumericPasswordValidator": {},
    }.items()
]
LOGIN_URL = "sign_in"
LOGIN_REDIRECT_URL = "today"
LOGOUT_REDIRECT_URL = "sign_in"
AXES_FAILURE_LIMIT = 8
AXES_COOLOFF_TIME = 0.25  # hours
# By name and by address, each for itself; whoever signed in from this device before stays free.
AXES_LOCKOUT_PARAMETERS = ["username", "ip_address"]
AXES_HANDLER = "workshop.people.guessing.Guessing"
AXES_WHITELIST_CALLABLE = "workshop.people.guessing.is_known_here"
AXES_CLIENT_IP_CALLABLE = "workshop.people.address.client_address"
AXES_LOCKOUT_TEMPLATE = "workshop/locked_out.html"
AXES_RESET_ON_SUCCESS = True
AXES_RESET_COOL_OFF_ON_FAILURE_DURING_LOCKOUT = False  # waiting helps, whatever a stranger goes on trying
AXES_VERBOSE = False
AXES_ENABLE_ADMIN = False

# Who forgot a password can have a link sent, where there is a server that sends it and an address that it leads to.
MAIL_SERVER = environment.mail_server()
if MAIL_SERVER:
    EMAIL_HOST, EMAIL_PORT = MAIL_SERVER.host, MAIL_SERVER.port
    EMAIL_HOST_USER, EMAIL_HOST_PASSWORD = MAIL_SERVER.user, MAIL_SERVER.password
    EMAIL_USE_TLS, EMAIL_USE_SSL = MAIL_SERVER.use_tls, MAIL_SERVER.use_ssl
    DEFAULT_FROM_EMAIL = SERVER_EMAIL = MAIL_SERVER.sender
    EMAIL_TIMEOUT = 20
SENDS_MAIL = bool(MAIL_SERVER and BASE_URL)

# Who chose no language on the pages reads that of the browser; commands and letters speak the workshop's.
LANGUAGES = [("en-gb", "English"), ("de", "Deutsch")]
FORMAT_MODULE_PATH = "workshop.formats"
LANGUAGE_CODE = environment.language(LANGUAGES)
# Likewise the units: of commands, and of whoever chose none.
UNITS = environment.units()
LOCALE_PATHS = environment.words(
    "ENOUGH_THREAD_MARKS", default=[]
)  # a made language that shows unmarked texts
TIME_ZONE = environment.words("TIME_ZONE", default=["UTC"])[0]
USE_I18N = True
USE_TZ = True

# Whole: a relative one would be completed by whatever prefix is known when it is first asked for.
STATIC_URL = f"{BASE_URL.path if BASE_URL else '/'}static/"
STATIC_ROOT = DATA_FOLDER / "static"
MEDIA_ROOT = DATA_FOLDER / "files"
WHITENOISE_USE_FINDERS = not SERVED
BACKUP_FOLDER = DATA_FOLDER / "backups"
WHITENOISE_MIMETYPES = {".webmanifest": "application/manifest+json"}
STORAGES = {
    # Kept files: MEDIA_ROOT, or the bucket in FILES_URL.
    "default": environment.file_store(),
    "staticfiles": {
        "BACKEND": "whitenoise.storage.CompressedManifestStaticFilesStorage"
        if SERVED
        else "django.contrib.staticfiles.storage.StaticFilesStorage"
    },
}
DATA_UPLOAD_MAX_MEMORY_SIZE = 4 * 1024 * 1024
FILE_UPLOAD_MAX_MEMORY_SIZE = 4 * 1024 * 1024
FILE_UPLOAD_HANDLERS = [
    "planning.library.uploads.BoundedUpload",
    "django.core.files.uploadhandler.MemoryFileUploadHandler",
    "django.core.files.uploadhandler.TemporaryFileUploadHandler",
]

DATA_UPLOAD_MAX_NUMBER_FILES = 1000  # the import page says in words how many it takes

# Who carries out long work: workers beside the site (manage.py work), or, where ENOUGH_THREAD_WORKER does not say that
# there are any, a thread of the site itself. "request" has the request do it that asks, as tests and scripts need.
WORK_IN = environment.work_in()
TASKS = {
    "default": {
        "BACKEND": "django_tasks.backends.immediate.ImmediateBackend"
        if WORK_IN == "request"
        else "django_tasks_db.DatabaseBackend"
    }
}
# A process says so often that it lives, and is thought dead after saying nothing for so long; on SQLite it may have
# to wait half a minute for its turn to write.
WORK_BEAT_S = environment.whole("ENOUGH_THREAD_WORK_BEAT_S", default=5)
WORK_LOST_AFTER = timedelta(seconds=environment.whole("ENOUGH_THREAD_WORK_LOST_AFTER_S", default=60))

# Requests of one token, and refused ones of one address, that are answered within a minute.
API_PER_MINUTE = environment.whole("ENOUGH_THREAD_API_PER_MINUTE", default=600)
API_REFUSED_PER_MINUTE = 60

CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [NONE],
        "script-src": [SELF],
        "style-src": [SELF],
        "img-src": [SELF],
        "font-src": [SELF],
        "connect-src": [SELF],
        "manifest-src": [SELF],
        "worker-src": [SELF],
        "form-action": [SELF],
        "base-uri": [NONE],
        "frame-ancestors": [NONE],
    }
}
X_FRAME_OPTIONS = "DENY"
SECURE_REFERRER_POLICY = "same-origin"
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SECURE = HTTPS
CSRF_COOKIE_SECURE = HTTPS
SECURE_SSL_REDIRECT = HTTPS
SECURE_REDIRECT_EXEMPT = [rf"^{re.escape(BASE_URL.path.lstrip('/') if BASE_URL else '')}health/$"]
SECURE_HSTS_SECONDS = 31_536_000 if HTTPS else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = HTTPS
SECURE_HSTS_PRELOAD = HTTPS
# Only a proxy that is named above, or one before a site that is reached over TLS, sets this header.
SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https") if HTTPS else None

LOGGING = logging_settings(as_json=environment.words("ENOUGH_THREAD_LOG", default=["words"]) == ["json"])
# A statement that takes longer is noted with its page.
SLOW_QUERY_MS = environment.whole("ENOUGH_THREAD_SLOW_MS", default=250)
