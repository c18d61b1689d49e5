// The first screen: what a baker chooses. The server says what is offered and what is chosen.
const Pictures = {
  props: ["name", "label", "note", "options", "chosen", "error", "own", "texts", "off"],
  emits: ["choose", "upload"],
  computed: {
    shown() {
      const known = this.options.some((option) => option.value === this.chosen);
      if (known || !this.chosen?.startsWith("own-")) return this.options;
      return [{ value: this.chosen, label: this.texts.own_file_chosen, picture: this.chosen }, ...this.options];
    },
  },
  mounted() {
    this.reveal();
  },
  watch: {
    chosen() {
      this.$nextTick(() => this.reveal());
    },
  },
  methods: {
    reveal() {
      const row = this.$refs.row;
      const mine = row?.querySelector("label:has(:checked)");
      if (mine && (mine.offsetLeft < row.scrollLeft || mine.offsetLeft + mine.offsetWidth > row.scrollLeft + row.clientWidth))
        row.scrollLeft = mine.offsetLeft - row.offsetWidth / 3;
    },
    async onFile(event) {
      const file = event.target.files[0];
      event.target.value = "";
      if (file) this.$emit("upload", await window.uploadFile(this.own.kind, file));
    },
  },
  template: `
    <fieldset class="ask" :data-choice="name">
      <legend><span>{{ label }}</span> <small v-if="note">{{ note }}</small></legend>
      <div v-if="!off" class="pictures" :class="name" ref="row">
        <label v-for="option in shown" :key="option.value" class="pick">
          <input type="radio" :name="'choice-' + name" :value="option.value" :checked="option.value === chosen"
            @change="$emit('choose', option.value)" />
          <img :src="'/choice/' + option.picture" alt="" width="84" height="72" loading="lazy" />
          <span>{{ option.label }}</span>
        </label>
        <label v-if="own" class="pick own"><input type="file" :accept="own.accept" @change="onFile" />
          <i aria-hidden="true">+</i><span>{{ own.label }}</span></label>
      </div>
      <p v-if="error" class="error" role="alert"><span aria-hidden="true">&#9650;</span> {{ error }}</p>
    </fieldset>`,
};

export default {
  components: { Pictures },
  props: ["options", "texts", "start", "own"],
  data() {
    return { state: this.start.state, errors: this.start.errors, crust: "", weight: this.start.state.weight,
      share: this.start.state.share, grams: this.start.state.centre_g, sent: 0, timer: null };
  },
  computed: {
    shareSays() {
      const says = this.crust ? this.texts.share_and_crust.replace("{crust}", this.crust) : this.texts.share_of_crust;
      return says.replace("{percent}", this.share);
    },
  },
  beforeUnmount() {
    clearTimeout(this.timer);
  },
  methods: {
    setState(state, errors) {
      this.state = state;
      this.errors = errors;
      if (state.serial < this.sent) return; // something newer was typed meanwhile
      const typing = document.activeElement?.id ?? "";
      if (typing !== "choice-weight") this.weight = state.weight;
      if (typing !== "choice-centre-g") this.grams = state.centre_g;
      if (typing !== "choice-share") this.share = state.share;
    },
    setCrust(text) {
      this.crust = text;
    },
    choose(what, value, refused = null) {
      clearTimeout(this.timer);
      this.sent += 1;
      this.$emit("choose", [what, value, refused, this.sent]);
    },
    later(what, value, wait) {
      clearTimeout(this.timer);
      this.sent += 1;
      this.timer = setTimeout(() => this.choose(what, value), wait);
    },
    // A step of 1 g below 100 g and of 5 g above, from one round figure to the next.
    step(what, text, by) {
      const typed = /^\s*(\d+(?:[.,]\d+)?)\s*g?\s*$/.exec(String(text));
      if (!typed) return text;
      const number = Number(typed[1].replace(",", "."));
      const size = what === "centre_g" ? 0.5 : number + by / 2 < 100 ? 1 : 5;
      const next = by > 0 ? Math.floor(number / size + 1 + 1e-9) * size : Math.ceil(number / size - 1 - 1e-9) * size;
      const result = String(Number(Math.max(next, size).toFixed(3))).replace(".", this.texts.decimal);
      this.choose(what, result);
      return result;
    },
    onKey(event, what, text) {
      if (event.key !== "ArrowUp" && event.key !== "ArrowDown") return text;
      event.preventDefault();
      return this.step(what, text, event.key === "ArrowUp" ? 1 : -1);
    },
    uploaded(what, answer) {
      if (answer.name) this.choose(what, answer.name);
      else this.choose(what, "", answer.error);
    },
  },
  template: `
    <form class="choices-form" @submit.prevent novalidate>
      <div class="ask" :class="{ invalid: errors.weight }" data-choice="weight">
        <label for="choice-weight">{{ texts.choose_weight }}</label>
        <div class="stepper">
          <button type="button" :aria-label="texts.less + texts.colon + texts.choose_weight" @click="weight = step('weight', weight, -1)">&minus;</button>
          <div><input id="choice-weight" type="text" inputmode="decimal" autocomplete="off" :size="Math.max(String(weight).length, 2)"
            v-model="weight" :aria-invalid="!!errors.weight" :aria-describedby="errors.weight ? 'choice-weight-error' : null"
            @input="later('weight', weight, 300)" @change="choose('weight', weight)" @keydown="weight = onKey($event, 'weight', weight)" />
            <span class="unit" aria-hidden="true">g</span></div>
          <button type="button" :aria-label="texts.more + texts.colon + texts.choose_weight" @click="weight = step('weight', weight, 1)">+</button>
        </div>
        <p v-if="errors.weight" class="error" id="choice-weight-error" role="alert"><span aria-hidden="true">&#9650;</span> {{ errors.weight }}</p>
      </div>
      <div class="ask" v-if="state.filled" data-choice="share">
        <label for="choice-share"><span>{{ texts.choose_share }}</span> <small>{{ shareSays }}</small></label>
        <div class="share-bar" aria-hidden="true"><i :style="{ width: share + '%' }"></i><i></i></div>
        <input id="choice-share" type="range" :min="own.share.min" :max="own.share.max" :step="own.share.step" v-model.number="share"
          :aria-valuetext="shareSays"
          @input="later('share', share, 60)" @change="choose('share', share)" />
        <p v-if="errors.share" class="error" role="alert"><span aria-hidden="true">&#9650;</span> {{ errors.share }}</p>
      </div>
      <Pictures name="outline" :label="texts.choose_outline" :options="options.outline" :chosen="state.outline" :texts="texts"
        :error="errors.outline" @choose="choose('outline', $event)" />
      <Pictures name="top" :label="texts.choose_top" :options="options.top" :chosen="state.top" :texts="texts" :own="own.top"
        :error="errors.top" @choose="choose('top', $event)" @upload="uploaded('top', $event)" />
      <Pictures name="around" :label="texts.choose_around" :note="state.carved ? texts.around_of_face : ''" :options="options.around"
        :chosen="state.carved ? '' : state.around" :texts="texts" :off="state.carved" @choose="choose('around', $event)" />
      <Pictures name="kind" :label="texts.choose_kind" :options="options.kind" :chosen="state.kind" :texts="texts"
        :error="errors.kind" @choose="choose('kind', $event)" />
      <div class="two">
        <div class="ask" v-if="state.filled" data-choice="centre">
          <label for="choice-centre">{{ texts.choose_centre }}</label>
          <select id="choice-centre" :value="state.centre" :disabled="state.centres > 1" @change="choose('centre', $event.target.value)">
            <option v-if="state.centres > 1 || !options.centre.some((one) => one.value === state.centre)" :value="state.centre">{{ state.centres > 1 ? texts.centres_several : state.centre_label }}</option>
            <option v-for="option in options.centre" :key="option.value" :value="option.value">{{ option.label }}</option>
          </select>
          <div v-if="state.centres === 1" class="input-row"><input id="choice-centre-g" type="text" inputmode="decimal" autocomplete="off" v-model="grams"
            :aria-label="texts.centre_grams" @input="later('centre_g', grams, 300)" @change="choose('centre_g', grams)"
            @keydown="grams = onKey($event, 'centre_g', grams)" /><span class="unit" aria-hidden="true">g</span></div>
          <p v-if="errors.centre" class="error" role="alert"><span aria-hidden="true">&#9650;</span> {{ errors.centre }}</p>
        </div>
        <div class="ask" data-choice="dough">
          <label for="choice-dough">{{ texts.choose_dough }}</label>
          <select id="choice-dough" :value="state.dough" @change="choose('dough', $event.target.value)">
            <option v-for="option in options.dough" :key="option.value" :value="option.value">{{ option.label }}</option>
          </select>
          <p v-if="errors.dough" class="error" role="alert"><span aria-hidden="true">&#9650;</span> {{ errors.dough }}</p>
        </div>
      </div>
    </form>`,
};
