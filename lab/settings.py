"""The one settings file. Every choice an operator has is read from the environment."""

import sys
from datetime import timedelta
from pathlib import Path
from urllib.parse import urlsplit

import dj_database_url
import font_source_sans_pro
from csp.constants import NONE, SELF
from django.core.exceptions import ImproperlyConfigured

from lab import environ
from lab.common import secret_key

BASE_DIR = Path(__file__).resolve().parent.parent
TESTING = "pytest" in sys.modules

# --- Where things are ---------------------------------------------------------
DATA_DIR = environ.folder("UNBROKEN_DATA", BASE_DIR / "var")
SITE_URL = environ.site_url("UNBROKEN_SITE_URL", "http://localhost:8000")
# A demo installation: settable clock, codes shown on the page, loopback only.
DEMO = environ.flag("UNBROKEN_DEMO", default=False)
DEBUG = False
SECRET_KEY_FILE = DATA_DIR / "secret-key"
SECRET_KEY = environ.text("UNBROKEN_SECRET_KEY") or secret_key.read(SECRET_KEY_FILE)
ALLOWED_HOSTS = [urlsplit(SITE_URL).hostname or "localhost", "localhost", "127.0.0.1"]
ALLOWED_HOSTS += [h for h in environ.text("UNBROKEN_HOSTS").split(",") if h]
CSRF_TRUSTED_ORIGINS = [SITE_URL]
HTTPS = SITE_URL.startswith("https://")

# The key that signs issued documents: a PKCS #12 file, kept out of the records.
SIGNING_KEY = environ.text("UNBROKEN_SIGNING_KEY")
SIGNING_PASSPHRASE = environ.text("UNBROKEN_SIGNING_PASSPHRASE")

# --- Apps, from the ground up (DEVELOPERS.md, "The layers") -------------------
LAB_APPS = [
    "lab.common",
    "lab.accounts",
    "lab.laboratory",
    "lab.customers",
    "lab.parts",
    "lab.equipment",
    "lab.environment",
    "lab.checks",
    "lab.jobs",
    "lab.inspections",
    "lab.lapses",
    "lab.certificates",
    "lab.evidence",
    "lab.portal",
    "lab.board",
]
INSTALLED_APPS = [
    *LAB_APPS,
    "django.contrib.auth",
    "django.contrib.contenttypes",
    "django.contrib.sessions",
    "django.contrib.messages",
    "django.contrib.staticfiles",
    "django_htmx",
    "template_partials",
    "axes",
    "django_otp",
    "django_otp.plugins.otp_totp",
]
MIDDLEWARE = [
    "django.middleware.security.SecurityMiddleware",
    "whitenoise.middleware.WhiteNoiseMiddleware",
    "csp.middleware.CSPMiddleware",
    "lab.common.uploads.ContentLengthMiddleware",
    "django.contrib.sessions.middleware.SessionMiddleware",
    "django.middleware.common.CommonMiddleware",
    "django.middleware.csrf.CsrfViewMiddleware",
    "django.contrib.auth.middleware.AuthenticationMiddleware",
    "django_otp.middleware.OTPMiddleware",
    "django.contrib.messages.middleware.MessageMiddleware",
    "django.middleware.clickjacking.XFrameOptionsMiddleware",
    "django_htmx.middleware.HtmxMiddleware",
    "lab.accounts.middleware.SessionRulesMiddleware",
    "lab.accounts.middleware.PagePermissionMiddleware",
    "lab.laboratory.middleware.LocalTimeMiddleware",
    "lab.common.middleware.DomainErrorMiddleware",
    "axes.middleware.AxesMiddleware",
]
ROOT_URLCONF = "lab.urls"
WSGI_APPLICATION = "lab.wsgi.application"
TEMPLATES = [
    {
        "BACKEND": "django.template.backends.django.DjangoTemplates",
        "DIRS": [BASE_DIR / "templates"],
        "APP_DIRS": True,
        "OPTIONS": {
            "context_processors": [
                "django.template.context_processors.request",
                "django.contrib.auth.context_processors.auth",
                "django.contrib.messages.context_processors.messages",
                "lab.accounts.context.page",
            ],
            "builtins": [
                "lab.common.templatetags.unbroken",
                "template_partials.templatetags.partials",
            ],
        },
    }
]

# --- Database: SQLite beside the files, or PostgreSQL by DATABASE_URL ---------
SQLITE_OPTIONS = {
    "timeout": 30,
    "transaction_mode": "IMMEDIATE",
    "init_command": (
        "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL; "
        "PRAGMA journal_size_limit=67108864; PRAGMA recursive_triggers=ON"
    ),
}
if environ.text("DATABASE_URL"):
    DATABASES = {"default": dj_database_url.parse(environ.text("DATABASE_URL"))}
    if "postgresql" not in DATABASES["default"]["ENGINE"]:
        raise ImproperlyConfigured(
            "DATABASE_URL must name a PostgreSQL database; leave it out for SQLite."
        )
    DATABASES["default"]["CONN_MAX_AGE"] = 60
else:
    DATABASES = {
        "default": {
            "ENGINE": "django.db.backends.sqlite3",
            "NAME": str(DATA_DIR / "unbroken.sqlite3"),
            "OPTIONS": SQLITE_OPTIONS,
            "CONN_MAX_AGE": 600,
        }
    }
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"

# --- Work: rows in the database, nudged by Celery -----------------------------
REDIS_URL = environ.text("REDIS_URL")
CELERY_BROKER_URL = REDIS_URL or "memory://"
CELERY_TASK_IGNORE_RESULT = True
CELERY_BROKER_CONNECTION_RETRY_ON_STARTUP = True
CELERY_WORKER_HIJACK_ROOT_LOGGER = False
WORK_LEASE_MARGIN = timedelta(seconds=60)
WORK_DONE_KEPT = timedelta(days=30)

# --- Files --------------------------------------------------------------------
RECORDS_BUCKET = environ.text("UNBROKEN_S3_BUCKET")
STORAGES = {
    "records": (
        {
            "BACKEND": "storages.backends.s3.S3Storage",
            "OPTIONS": {
                "bucket_name": RECORDS_BUCKET,
                "endpoint_url": environ.text("UNBROKEN_S3_ENDPOINT") or None,
                "file_overwrite": False,
            },
        }
        if RECORDS_BUCKET
        else {
            "BACKEND": "lab.common.files.storage.RecordsStorage",
            "OPTIONS": {"location": DATA_DIR / "records"},
        }
    ),
    "default": {
        "BACKEND": "django.core.files.storage.FileSystemStorage",
        "OPTIONS": {"location": DATA_DIR / "scratch"},
    },
    "staticfiles": {
        "BACKEND": (
            "django.contrib.staticfiles.storage.StaticFilesStorage"
            if TESTING
            else "whitenoise.storage.CompressedManifestStaticFilesStorage"
        )
    },
}
MEGABYTE = 1024 * 1024
UPLOAD_LIMITS = {
    "readings": environ.integer("UNBROKEN_MAX_READINGS_MB", 512, minimum=1) * MEGABYTE,
    "mesh": environ.integer("UNBROKEN_MAX_MESH_MB", 100, minimum=1) * MEGABYTE,
    "photo": environ.integer("UNBROKEN_MAX_PHOTO_MB", 20, minimum=1) * MEGABYTE,
    "xml": environ.integer("UNBROKEN_MAX_XML_MB", 20, minimum=1) * MEGABYTE,
    "other": environ.integer("UNBROKEN_MAX_OTHER_MB", 50, minimum=1) * MEGABYTE,
}
PHOTO_MAX_PIXELS = environ.integer("UNBROKEN_MAX_PHOTO_PIXELS", 80_000_000, minimum=1)
DATA_UPLOAD_MAX_MEMORY_SIZE = 5 * MEGABYTE
FILE_UPLOAD_TEMP_DIR = None

# --- People and sessions ------------------------------------------------------
AUTH_USER_MODEL = "accounts.User"
AUTHENTICATION_BACKENDS = [
    "axes.backends.AxesStandaloneBackend",
    "django.contrib.auth.backends.ModelBackend",
]
PASSWORD_HASHERS = [
    "django.contrib.auth.hashers.MD5PasswordHasher"
    if TESTING
    else "django.contrib.auth.hashers.Argon2PasswordHasher"
]
VALIDATORS = "django.contrib.auth.password_validation"
AUTH_PASSWORD_VALIDATORS = [
    {
        "NAME": f"{VALIDATORS}.UserAttributeSimilarityValidator",
        "OPTIONS": {"user_attributes": ("email", "name")},
    },
    {"NAME": f"{VALIDATORS}.MinimumLengthValidator", "OPTIONS": {"min_length": 12}},
    {"NAME": f"{VALIDATORS}.CommonPasswordValidator"},
    {"NAME": f"{VALIDATORS}.NumericPasswordValidator"},
]
LOGIN_URL = "accounts:login"
LOGIN_REDIRECT_URL = "home"
PASSWORD_RESET_TIMEOUT = 3600
SESSION_COOKIE_AGE = 12 * 3600
SESSION_LIFETIME = timedelta(hours=12)
SHARED_TABLET_IDLE = timedelta(minutes=15)
SESSION_COOKIE_HTTPONLY = True
SESSION_COOKIE_SAMESITE = "Lax"
SESSION_COOKIE_SECURE = CSRF_COOKIE_SECURE = HTTPS
OTP_TOTP_ISSUER = "Unbroken"
# A clock that runs off is the phone's to mend: codes count one step either way of ours.
OTP_TOTP_SYNC = False
AXES_HANDLER = "axes.handlers.database.AxesDatabaseHandler"
AXES_FAILURE_LIMIT = environ.integer("UNBROKEN_LOGIN_TRIES", 6, minimum=1)
AXES_COOLOFF_TIME = timedelta(minutes=15)
AXES_LOCKOUT_PARAMETERS = [["username", "ip_address"]]
AXES_RESET_ON_SUCCESS = True
AXES_USERNAME_FORM_FIELD = "username"
AXES_LOCKOUT_CALLABLE = "lab.accounts.views.locked_out"
AXES_VERBOSE = False
# A try during the lock-out does not lengthen it, and none of what was typed is kept.
AXES_RESET_COOL_OFF_ON_FAILURE_DURING_LOCKOUT = False
AXES_SENSITIVE_PARAMETERS = ["username", "email", "ip_address", "password", "code"]
# Sign-ins are in the audit; a second log of addresses and browsers would serve nobody.
AXES_DISABLE_ACCESS_LOG = True

# --- Security (the policy's one hash is that of an empty style sheet) ---------
SECURE_CONTENT_TYPE_NOSNIFF = True
SECURE_REFERRER_POLICY = "same-origin"
SECURE_CROSS_ORIGIN_OPENER_POLICY = "same-origin"
SECURE_HSTS_SECONDS = 31_536_000 if HTTPS else 0
SECURE_HSTS_INCLUDE_SUBDOMAINS = SECURE_HSTS_PRELOAD = HTTPS
# The proxy in front of the program redirects plain http; the program only trusts
# its header where the operator says that a proxy sets it.
SECURE_SSL_REDIRECT = HTTPS and environ.flag("UNBROKEN_REDIRECT_HTTPS", default=False)
if environ.flag("UNBROKEN_BEHIND_PROXY", default=False):
    SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
X_FRAME_OPTIONS = "DENY"
CSRF_FAILURE_VIEW = "lab.common.views.stale_form"
EMPTY_STYLE = "'sha256-47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU='"
CONTENT_SECURITY_POLICY = {
    "DIRECTIVES": {
        "default-src": [NONE],
        "script-src": [SELF],
        "style-src": [SELF, EMPTY_STYLE],
        "img-src": [SELF, "data:", "blob:"],
        "connect-src": [SELF],
        "font-src": [SELF],
        "manifest-src": [SELF],
        "form-action": [SELF],
        "base-uri": [NONE],
        "frame-ancestors": [NONE],
        "object-src": [NONE],
    }
}

# --- Mail ---------------------------------------------------------------------
EMAIL_BACKEND = environ.text(
    "UNBROKEN_EMAIL_BACKEND",
    "django.core.mail.backends.smtp.EmailBackend"
    if environ.text("UNBROKEN_SMTP_HOST")
    else "django.core.mail.backends.filebased.EmailBackend",
)
EMAIL_FILE_PATH = DATA_DIR / "mail"
EMAIL_HOST = environ.text("UNBROKEN_SMTP_HOST")
EMAIL_PORT = environ.integer("UNBROKEN_SMTP_PORT", 587, minimum=1)
EMAIL_HOST_USER = environ.text("UNBROKEN_SMTP_USER")
EMAIL_HOST_PASSWORD = environ.text("UNBROKEN_SMTP_PASSWORD")
EMAIL_USE_TLS = environ.flag("UNBROKEN_SMTP_TLS", default=True)
EMAIL_TIMEOUT = 20
DEFAULT_FROM_EMAIL = environ.text("UNBROKEN_MAIL_FROM", "unbroken@localhost")

# --- Words, times, static files -----------------------------------------------
LANGUAGE_CODE = "en-gb"
USE_I18N = True
USE_TZ = True
TIME_ZONE = "UTC"
STATIC_URL = "static/"
STATIC_ROOT = DATA_DIR / "static"
# Tests serve what lies in the project; nothing is collected for them first.
WHITENOISE_AUTOREFRESH = WHITENOISE_USE_FINDERS = TESTING
STATICFILES_DIRS = [
    BASE_DIR / "static",
    ("fonts", Path(font_source_sans_pro.__file__).parent / "files"),
]
CLOCK_SETTABLE = DEMO or TESTING
# Seconds that a demo's clock is set apart from the real one.
CLOCK_SHIFT_S = environ.integer("UNBROKEN_CLOCK_SHIFT_S", 0, minimum=-10_000_000_000)
MESSAGE_STORAGE = "django.contrib.messages.storage.session.SessionStorage"
SILENCED_SYSTEM_CHECKS = [
    # A lab on its own network may serve plain http; HTTPS in UNBROKEN_SITE_URL
    # turns all of these on together.
    *([] if HTTPS else ["security.W004", "security.W012", "security.W016"]),
    "security.W008",  # the proxy redirects; see SECURE_SSL_REDIRECT above
]
LOGGING = {
    "version": 1,
    "disable_existing_loggers": False,
    "formatters": {
        "plain": {"format": "%(asctime)s %(levelname)s %(name)s %(message)s"}
    },
    "handlers": {"stderr": {"class": "logging.StreamHandler", "formatter": "plain"}},
    "root": {"handlers": ["stderr"], "level": "WARNING"},
    "loggers": {"lab": {"level": "INFO"}},
}
