"""Signing in to the office pages, and looking after one's own password."""

from flask import Flask
from flask_login import LoginManager
from flask_wtf.csrf import CSRFProtect

from webapp.account.desk import load_desk
from webapp.store.entrance import nobodys_hash

login_manager = LoginManager()
csrf = CSRFProtect()


def install(app: Flask) -> None:
    login_manager.init_app(app)
    login_manager.user_loader(load_desk)
    csrf.init_app(app)
    nobodys_hash()  # else the first unknown login would take longer than a known one
