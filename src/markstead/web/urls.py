"""Every address."""

from django.contrib.auth.views import LoginView, LogoutView
from django.urls import path

from markstead.web.views import (
    acts,
    copies,
    errors,
    learners,
    orders,
    plan,
    quiz,
    record,
    sheets,
    today,
    wishes,
)

urlpatterns = [
    path("", today.page, name="today"),
    path("today/refresh", today.refresh, name="refresh"),
    path("act", acts.act, name="act"),
    path("goals/set", acts.set_goals, name="set-goals"),
    path("acts/<slug:act_id>/undo", acts.undo, name="undo"),
    path("copies/", copies.listing, name="copies"),
    path("copies/order", copies.order, name="order"),
    path("copies/<slug:copy>/", copies.page, name="copy"),
    path("learners/<slug:learner>/", learners.page, name="learner"),
    path("learners/<slug:learner>/goal", learners.goal_by_hand, name="goal-by-hand"),
    path("learners/<slug:learner>/goal/effect", learners.goal_effect, name="goal-effect"),
    path("learners/<slug:learner>/spot-check", learners.spot_check, name="learner-spot"),
    path("learners/<slug:learner>/review", learners.reviewed, name="learner-review"),
    path("plan/", plan.page, name="plan"),
    path("plan/term/", sheets.term, name="term"),
    path("plan/year/", sheets.year, name="year"),
    path("plan/load/", sheets.load, name="load"),
    path("plan/make", plan.make, name="plan-make"),
    path("plan/again", plan.again, name="plan-again"),
    path("plan/away", plan.away, name="plan-away"),
    path("plan/what-if/", plan.whatif, name="whatif"),
    path("plan/targets/", wishes.page, name="wishes"),
    path("plan/<int:number>/", plan.one, name="plan-one"),
    path("plan/<int:number>/stop", plan.stop, name="plan-stop"),
    path("plan/<int:number>/take", plan.take, name="plan-take"),
    path("plan/<int:number>/aside", plan.aside, name="plan-aside"),
    path("quiz/begin", quiz.begin, name="quiz-begin"),
    path("quiz/<slug:quiz>/", quiz.page, name="quiz"),
    path("quiz/<slug:quiz>/answer", quiz.answer, name="quiz-answer"),
    path("orders/", orders.page, name="orders"),
    path("orders/place", orders.place, name="orders-place"),
    path("orders/receive", orders.receive, name="orders-receive"),
    path("orders/sheet", orders.sheet, name="orders-sheet"),
    path("papers/", copies.papers, name="papers"),
    path("record/", record.page, name="record"),
    path("clock", today.move_clock, name="clock"),
    path("sign-in/", LoginView.as_view(template_name="sign_in.html"), name="sign-in"),
    path("sign-out/", LogoutView.as_view(), name="sign-out"),
]
handler404 = errors.not_found
handler500 = errors.sorry
handler403 = errors.not_allowed
handler400 = errors.not_understood
