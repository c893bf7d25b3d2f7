from django.contrib.auth.decorators import login_not_required
from django.urls import path

from hospital.people import account_views, invitation_views, views

app_name = "people"
urlpatterns = [
    path("sign-in/", login_not_required(views.SignIn.as_view()), name="sign-in"),
    path("sign-in/mail-a-code/", login_not_required(views.ask_for_code), name="ask-for-code"),
    path("sign-in/code/", login_not_required(views.enter_code), name="enter-code"),
    path("sign-in/passkey/", login_not_required(views.by_passkey), name="by-passkey"),
    path("sign-out/", views.sign_out, name="sign-out"),
    path("language/", login_not_required(views.choose_language), name="choose-language"),
    path("reading/", views.reading, name="reading"),
    path("work-at/", views.work_at, name="work-at"),
    path("my-account/", account_views.account, name="account"),
    path("my-account/password/", account_views.set_password, name="set-password"),
    path("my-account/passkeys/add/", account_views.add_passkey, name="add-passkey"),
    path("my-account/passkeys/<int:passkey_id>/name/", account_views.rename_passkey, name="rename-passkey"),
    path("my-account/passkeys/<int:passkey_id>/remove/", account_views.remove_passkey, name="remove-passkey"),
    path("my-account/sign-out-elsewhere/", account_views.sign_out_elsewhere, name="sign-out-elsewhere"),
    path("invitations/", invitation_views.invitations, name="invitations"),
    path("invitations/invite/", invitation_views.invite, name="invite"),
    path("invitations/<int:invitation_id>/resend/", invitation_views.resend, name="resend"),
    path("invitations/<int:invitation_id>/withdraw/", invitation_views.withdraw, name="withdraw"),
    path("join/<str:secret>/", login_not_required(invitation_views.join), name="join"),
]
